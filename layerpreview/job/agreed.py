"""Whether a scheme is what its client agreed to, as the job's log tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True)
class HowAgreed:
    """The last agreement that a scheme has to do with: its `code`, `board`, `option` and `day` (ISO, UTC); none: "".

    `instead`: the name of the file that was agreed, where it is another than this scheme, and `way` to it from the log.
    `changed`: this scheme was agreed and is no longer as it was then.
    """

    code: str = ""
    board: str = ""
    option: str = ""
    day: str = ""
    instead: str = ""
    way: str = ""
    changed: bool = False
    also_in_json: ClassVar = ("is_agreed", "words")

    @property
    def is_agreed(self) -> bool:
        """Whether this very scheme is agreed."""
        return bool(self.code) and not self.instead and not self.changed

    @property
    def words(self) -> str:
        """One sentence for a sheet."""
        if not self.code:
            return "Not agreed yet."
        said = ", ".join(filter(None, (self.option and f"option {self.option}", self.day, f"code {self.code}")))
        if self.instead:
            return f"Not agreed: what was agreed is {self.instead} ({said})."
        if self.changed:
            return f"Changed since it was agreed ({said}): ask the client again."
        return f"Agreed: {said}."
