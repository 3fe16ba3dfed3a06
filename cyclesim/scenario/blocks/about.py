"""Who hands the plant over to whom: what stands at the head of papers, and changes no number."""

from typing import Annotated, Any

from pydantic import Field, model_validator

from cyclesim.scenario.forms.forms import Form, Model, RefusedError, what_is
from cyclesim.scenario.text.picture_file import PICTURE_DUE, Picture

_LONGEST = 200


def _read_picture(value: object) -> Any:
    """What has been put in where a picture file is named."""
    if not isinstance(value, Picture):
        raise RefusedError(what_is(value), PICTURE_DUE)
    return value


PictureFile = Annotated[
    Picture, Form(_read_picture, {"type": "string", "pattern": r"^[^/\\:][^\\:]*\.(svg|png|jpe?g)$"})
]


def _line(says: str) -> Any:
    return Field(None, description=says, min_length=1, max_length=_LONGEST)


class About(Model):
    """What papers are headed with; each may be left out."""

    firm: str | None = _line("Who builds it and hands it over.")
    client: str | None = _line("Whom it is handed over to.")
    address: str | None = _line("Where it stands, in one line.")
    drawing: str | None = _line("The number of the drawing that it is built from.")
    revision: str | None = _line('That drawing\'s revision, in quotes: "3".')
    logo: PictureFile | None = Field(
        None, description="The path of the firm's logo: an SVG, PNG or JPEG file of at most 2 MB."
    )

    @model_validator(mode="after")
    def _something(self) -> "About":
        if not self.model_fields_set:
            raise RefusedError("", f"expected one of {', '.join(type(self).model_fields)}, or leave it out")
        return self
