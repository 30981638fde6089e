"""What the pure core refuses. Each refusal is a sentence for the person who typed the value."""


class Refused(ValueError):
    """A value that breaks a rule.

    ``sentence`` says what is wrong and what would be right; ``field`` names the value it is about.
    """

    def __init__(self, sentence: str, *, field: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field


class Unreadable(Refused):
    """Text that is not the number it should be. Nothing is guessed from it."""
