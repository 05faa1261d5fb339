"""What the help pages show."""

from dataclasses import dataclass

from server.web.glossary import TERMS, Term


@dataclass(frozen=True, kw_only=True)
class Topic:
    """One page of help: its address ends in `key`."""

    key: str
    title: str
    about: str


TOPICS = (
    Topic(
        key="planning",
        title="Plan the light over a tank",
        about="From the tank's measures to a height and a power, in six steps.",
    ),
    Topic(
        key="chart",
        title="Read the chart",
        about="What the lines, the numbers, the marks and the hatching say.",
    ),
    Topic(
        key="measuring",
        title="Measure under water",
        about="How to take ten readings that settle the matter, and what spoils them.",
    ),
    Topic(
        key="day",
        title="Plan the day and the way up",
        about="Hours, dose, acclimation, and when to leave it alone.",
    ),
    Topic(
        key="meter",
        title="Borrow the meter",
        about="Booking, the queue, handing over, and coming back late.",
    ),
    Topic(
        key="files",
        title="Send a table of readings",
        about="Which files are understood, and what happens to rows that are not.",
    ),
    Topic(
        key="scripts",
        title="Send readings from a script",
        about="Access tokens, addresses, and a short example.",
    ),
    Topic(
        key="safety",
        title="Safety by the tank",
        about="Mains near salt water, weight overhead, blue light, hot lamps.",
    ),
)
_BY_KEY = {topic.key: topic for topic in TOPICS}


@dataclass(frozen=True, kw_only=True)
class HelpView:
    """The index of help: topics and words."""

    topics: tuple[Topic, ...]
    words: tuple[Term, ...]


@dataclass(frozen=True, kw_only=True)
class TopicView:
    """One page of help and its neighbours."""

    topic: Topic
    others: tuple[Topic, ...]


def index() -> HelpView:
    """Everything there is to read."""
    return HelpView(topics=TOPICS, words=TERMS)


def topic(key: str) -> TopicView | None:
    """One topic, or None where there is no such page."""
    found = _BY_KEY.get(key)
    if found is None:
        return None
    return TopicView(topic=found, others=tuple(one for one in TOPICS if one is not found))
