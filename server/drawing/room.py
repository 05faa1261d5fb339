"""What is already taken on a drawing, so that no words are printed over others."""

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Box:
    """An upright rectangle [SVG units], y downward."""

    left: float
    top: float
    width: float
    height: float

    @classmethod
    def around(cls, *, x: float, y: float, width: float, height: float) -> "Box":
        """A box by its middle."""
        return cls(left=x - width / 2, top=y - height / 2, width=width, height=height)

    @property
    def right(self) -> float:
        """The right edge [SVG units]."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """The lower edge [SVG units]."""
        return self.top + self.height

    def holds(self, other: "Box") -> bool:
        """Whether another box lies wholly inside."""
        return (
            self.left <= other.left
            and self.right >= other.right
            and self.top <= other.top
            and self.bottom >= other.bottom
        )

    def meets(self, other: "Box") -> bool:
        """Whether two boxes share any place."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(kw_only=True)
class Room:
    """The free room inside a box. It fills up while a drawing is made."""

    inside: Box
    taken: list[Box] = field(default_factory=list)

    def free(self, box: Box) -> bool:
        """Whether a box is inside and meets nothing."""
        return self.inside.holds(box) and not any(box.meets(other) for other in self.taken)

    def take(self, box: Box) -> bool:
        """Take a box if it is free; says whether it was."""
        if not self.free(box):
            return False
        self.taken.append(box)
        return True

    def hold(self, box: Box) -> None:
        """Take a box whatever stands there: things whose place is a fact."""
        self.taken.append(box)

    def first(self, boxes: "tuple[Box, ...]") -> int | None:
        """Take the first free one of several boxes and say which."""
        return next((n for n, box in enumerate(boxes) if self.take(box)), None)
