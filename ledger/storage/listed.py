"""Every name under a prefix of a bucket, also such as no file of a book can have.

The usual client lists nothing at all where one name has an empty part or a `..` in it. Another one
lists then, for the names alone.
"""

from __future__ import annotations

import os

from ledger.errors import Unreachable, WrongUse

_CONNECT_S, _ANSWER_S = 5, 20


def names_of(bucket: str, prefix: str) -> list[str]:
    """Give the name of every object under a prefix, without the prefix; raises Unreachable."""
    # A second client of object stores is loaded only where it is needed.
    from pyarrow import fs

    start = f"{bucket}/{prefix}".rstrip("/")
    try:
        store = fs.S3FileSystem(
            endpoint_override=os.environ.get("AWS_ENDPOINT_URL"),
            region=os.environ.get("AWS_REGION"),
            connect_timeout=_CONNECT_S,
            request_timeout=_ANSWER_S,
        )
        asked = fs.FileSelector(start, recursive=True, allow_not_found=True)
        found = store.get_file_info(asked)
    except OSError as error:
        said = str(error).partition("\n")[0][:200].rstrip(".")
        raise Unreachable(f"s3://{start} does not answer: {said}.") from None
    return [one.path.removeprefix(f"{start}/") for one in found if one.type == fs.FileType.File]


def is_name(name: str) -> bool:
    """Tell whether a name can be that of a file here."""
    from ledger.storage.objects import checked

    try:
        checked(name)
    except WrongUse:
        return False
    return True
