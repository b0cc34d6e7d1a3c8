/* The bench page's hand: the field that is next, Enter, double taps, and a line that is lost. */
(() => {
  if (window.lockringBench) { window.lockringBench(); return; }
  const bench = () => document.querySelector(".st-key-bench");
  const app = () => document.querySelector("[data-testid='stApp']");
  const seen = new WeakSet();
  let item = "";
  let stroke = null;

  const figures = () => {
    for (const field of document.querySelectorAll("[class*='st-key-number-'] input")) {
      if (field.inputMode !== "decimal") {
        field.inputMode = "decimal";
        field.enterKeyHint = "done";
        field.autocomplete = "off";
      }
    }
  };
  const next = () => {
    const head = document.querySelector(".st-key-bench_item .lk-item, .st-key-bench .lk-item");
    if (!head) return;
    const entry = document.querySelector(".st-key-bench_entry input");
    const moved = head.dataset.item !== item;
    item = head.dataset.item;
    if (entry && !entry.disabled && !seen.has(entry)) {
      seen.add(entry);
      entry.focus({ preventScroll: true });
    } else if (moved && !entry && (!document.activeElement || document.activeElement === document.body)) {
      head.focus({ preventScroll: true });
    }
    const here = document.querySelector("[class*='st-key-stroke-now']");
    const scale = document.querySelector(".st-key-bench_steps");
    if (here && scale && scale.scrollWidth > scale.clientWidth && (moved || here !== stroke)) {
      stroke = here;
      const [step, whole] = [here.getBoundingClientRect(), scale.getBoundingClientRect()];
      scale.scrollLeft += step.left + step.width / 2 - (whole.left + whole.width / 2);
    }
    if (moved) {
      const room = document.querySelector("[data-testid='stMain']");
      const top = bench();
      if (room && top && room.scrollTop > top.offsetTop) room.scrollTo({ top: Math.max(0, top.offsetTop - 120) });
    }
  };
  let asked = 0;
  const look = () => {
    if (asked) return;
    asked = requestAnimationFrame(() => {
      asked = 0;
      /* a class, not :has() in the styles: that is looked up again at every change of the page */
      document.body.classList.toggle("lk-at-bench", Boolean(bench()));
      if (bench()) { figures(); next(); }
      line();
    });
  };
  window.lockringBench = look;

  /* Enter in an entry records. The field itself sends what is typed while this event runs, so the
     press comes after it, close enough that the server takes both as one. */
  const press = (field, typed, tries) => {
    const isOpen = field.isConnected && field.value === typed;
    const isRefused = document.querySelector(".st-key-bench_item .lk-refused");
    if (!tries || !isOpen || (tries !== 3 && isRefused)) return;
    const isIdle = app()?.dataset.testScriptState === "notRunning";
    /* A press that met the end of the run before it can be lost. Pressing again is harmless: what a
       form records has the same id until it is recorded. */
    if (tries === 3 || isIdle)
      document.querySelector(".st-key-bench_entry [class*='st-key-record'] button")?.click();
    setTimeout(press, 1500, field, typed, isIdle || tries === 3 ? tries - 1 : tries);
  };
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    const field = event.target.closest?.(".st-key-bench_entry input");
    if (!field) return;
    setTimeout(press, 0, field, field.value, 3);
  });

  /* A glove that taps twice presses once: the second tap may lie on what comes next. */
  document.addEventListener("click", (event) => {
    if (event.detail > 1 && event.target.closest?.(".st-key-bench button, .st-key-bench_head button")) {
      event.stopImmediatePropagation();
      event.preventDefault();
    }
  }, true);

  /* Whether the book answers. */
  let band = null, pressed = 0, silent = false;
  const lost = () => {
    const state = app()?.dataset.testConnectionState;
    return navigator.onLine === false || (state !== undefined && state !== "CONNECTED" && state !== "STATIC_CONNECTED") || silent;
  };
  const WAIT_MS = 1500;
  let wasLost = false, hasRun = false, backAt = 0;
  const line = () => {
    const state = app()?.dataset.testScriptState;
    if (lost()) { wasLost = true; hasRun = false; backAt = 0; }
    else if (wasLost) {
      /* A new line is good for a press once the page was drawn over it. Where the frame does not
         ask for that by itself, going to this very address does. */
      backAt = backAt || Date.now();
      hasRun = hasRun || state === "running";
      if (hasRun && state === "notRunning") wasLost = false;
      else if (state === "notRunning" && Date.now() - backAt > WAIT_MS) {
        backAt = Date.now();
        dispatchEvent(new PopStateEvent("popstate"));
      }
    }
    const isLost = wasLost && Boolean(bench());
    if (isLost && !band) {
      band = document.createElement("div");
      band.className = "lk-lost";
      band.setAttribute("role", "alert");
      for (const [tag, words] of [["b", "No line to the book."], ["span", "Nothing typed or pressed since " +
        "is in the book. It stays here; go on when this band is gone."]]) {
        const part = document.createElement(tag);
        part.textContent = words + " ";
        band.append(part);
      }
      document.body.append(band);
      document.body.classList.add("lk-is-lost");
    } else if (!isLost && band) {
      band.remove();
      band = null;
      document.body.classList.remove("lk-is-lost");
    }
  };
  document.addEventListener("click", (event) => {
    if (event.target.closest?.(".st-key-bench button, .st-key-bench_head button")) pressed = Date.now();
  });
  /* The minutes of a running clock go on here, from where the server drew them. */
  let drawn = "", since = 0;
  const minutes = () => {
    const clock = document.querySelector(".lk-clock-now b[data-seconds]");
    if (!clock) { drawn = ""; return; }
    if (clock.dataset.seconds !== drawn) { drawn = clock.dataset.seconds; since = Date.now(); }
    const now = String(Math.floor((Number(drawn) + (Date.now() - since) / 1000) / 60));
    if (now.length > 3 || clock.textContent === now) return;
    clock.textContent = now;
  };
  const answered = () => { pressed = 0; silent = false; };
  setInterval(() => {
    const state = app()?.dataset.testScriptState;
    if (pressed && state === "running") answered();
    if (pressed && Date.now() - pressed > 4000) silent = true;
    line();
    minutes();
  }, 1000);
  addEventListener("online", line);
  addEventListener("offline", line);
  new MutationObserver((changes) => {
    const own = changes.filter((one) => one.type === "attributes" && one.target === app());
    if (own.length) answered();
    /* A run may begin and end between two looks. */
    if (!lost() && own.some((one) => one.oldValue === "running")) hasRun = true;
    look();
  }).observe(document.body, { subtree: true, childList: true, attributes: true, attributeOldValue: true,
    attributeFilter: ["data-test-connection-state", "data-test-script-state"] });
  look();
})();
