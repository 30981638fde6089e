"""A weighing as it was done, told to an action."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Weighed:
    """One weighing as it was done: the scale's code, gross and tare in milligrams.

    ``gross_reading`` and ``tare_reading`` are ids of what the scale sent by itself; without them a person keyed it.
    """

    scale: str
    gross_mg: int
    tare_mg: int = 0
    gross_reading: int | None = None
    tare_reading: int | None = None

    @property
    def net_mg(self) -> int:
        """Milligrams on the scale without the container."""
        return self.gross_mg - self.tare_mg

    def as_request(self) -> dict:
        """The entry of ``weighing`` of a handover."""
        said = {
            "scale": self.scale,
            "gross_mg": self.gross_mg,
            "tare_mg": self.tare_mg,
            "gross_reading": self.gross_reading,
            "tare_reading": self.tare_reading,
        }
        return {key: value for key, value in said.items() if value is not None}
