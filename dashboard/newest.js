/* A page left open learns of what was recorded since it was drawn. */
(() => {
  if (window.lockringNewest) return;
  window.lockringNewest = true;
  const app = () => document.querySelector("[data-testid='stApp']");
  const marks = () => [...document.querySelectorAll(".lk-drawn")];
  const isConnected = () => [undefined, "CONNECTED"].includes(app()?.dataset.testConnectionState);
  let note = null, isAsking = false, drawnAgain = 0, refusedAt = null;
  const gone = () => { if (note) note.remove(); note = null; };
  /* Going to this very address has the page drawn anew, with what is chosen on it. */
  const again = (commit) => {
    drawnAgain = commit;
    gone();
    dispatchEvent(new PopStateEvent("popstate"));
  };
  const told = (commit) => {
    if (note) return;
    note = document.createElement("div");
    note.className = "lk-newer";
    note.setAttribute("role", "status");
    const press = document.createElement("button");
    press.type = "button";
    press.textContent = "New entries. Show them";
    press.addEventListener("click", () => again(commit));
    note.append(press);
    document.body.append(note);
  };
  const isIdle = () => {
    const at = document.activeElement;
    return app()?.dataset.testScriptState === "notRunning" && !at?.closest?.("input, textarea, select, [role='dialog']");
  };
  const look = async () => {
    if (!marks().length || marks()[0] === refusedAt || document.hidden || isAsking || !isConnected()) return;
    isAsking = true;
    try {
      const answer = await fetch("/newest", { cache: "no-store" });
      /* Signed out meanwhile, or no book: not asked again before the page is drawn anew. */
      if (!answer.ok) { refusedAt = marks()[0]; return; }
      const { commit } = await answer.json();
      /* A part that was drawn alone after a press carries its own. */
      if (!(commit > Math.max(...marks().map((one) => Number(one.dataset.commit))))) { gone(); return; }
      if (marks().some((one) => one.dataset.follows === "true") && isIdle() && drawnAgain !== commit) again(commit);
      else if (drawnAgain !== commit) told(commit);
    } catch { /* the frame says itself when the server does not answer */ }
    finally { isAsking = false; }
  };
  setInterval(look, 1000);
})();
