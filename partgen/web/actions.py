"""What a request may say, as one strict record."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from partgen.core.errors import Fault, InputError
from partgen.profile.edit import Place, TableName

Text = Annotated[str, Field(max_length=400)]
PlaceKey = tuple[TableName, Text, Text]


class Action(BaseModel):
    """One thing a person did on the page."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    tab: Annotated[str, Field(pattern=r"^[a-z0-9]{8,40}$")]
    page: Literal["start", "panel", "printer", "scan", "measure", "shape", "build", "try"]
    do: Annotated[str, Field(pattern=r"^[a-z-]{1,30}$")]
    place: PlaceKey | None = None
    text: Text = ""
    was: Text = ""
    """What the page showed in a field before it was changed."""
    seen: Annotated[int, Field(ge=0, le=10_000)] = 0
    """How many readings the page showed at the place."""
    again: bool = False
    """True when this was sent before and no answer came."""
    label: Text = ""
    name: Text = ""
    values: Annotated[dict[Text, Text], Field(max_length=40)] = {}

    @property
    def at(self) -> Place:
        """The place that it is about. Raises InputError where it names none."""
        if self.place is None:
            raise InputError(Fault("the request", "no place", "a place in the profile"))
        return Place(*self.place)


class FieldError(InputError):
    """Something is wrong in fields of a form: `fields` says what, by a field's name."""

    def __init__(self, fields: dict[str, Fault]) -> None:
        self.fields = {
            name: f"{fault.read}: {fault.expected}" if fault.read else fault.expected for name, fault in fields.items()
        }
        super().__init__(*fields.values())


def action_from(raw: bytes) -> Action:
    """An action from a request's body. Raises InputError in words."""
    try:
        return Action.model_validate_json(raw)
    except ValidationError as error:
        raise in_words(error, "the request") from error


def in_words(error: ValidationError, where: str) -> InputError:
    """What pydantic found wrong in what the page sent."""
    faults = error.errors(include_url=False, include_context=False)[:5]
    return InputError(
        *(Fault(f"{where}: " + ".".join(map(str, f["loc"])), repr(f["input"])[:60], f["msg"]) for f in faults)
    )
