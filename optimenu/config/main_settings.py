"""Tables of the config that are not a rule's: files, stay, people, goal, search."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Field, create_model

from optimenu.config.keeping import StorageTable
from optimenu.config.sift import CatalogueTable
from optimenu.crew.people import PersonTable
from optimenu.rules.registry import rule_classes
from optimenu.rules.which import Which
from optimenu.settings import (
    ChangedBy,
    Clock,
    ClockSpan,
    Day,
    Names,
    NonNegative,
    Number,
    Percent,
    Positive,
    Role,
    Settings,
    Span,
    Text,
    Unit,
    Whole,
    Word,
    Writer,
)  # fmt: skip


class TastingTable(Settings):
    """Tasting scores and how they become acceptance."""

    file: Annotated[Text, ChangedBy("planner")]
    """CSV or Parquet file: person, item, kind (sample or serving), date, score, remark."""
    sample_weight: NonNegative = Decimal(1)
    """Weight of a score of a few bites; common practice, no source."""
    serving_weight: Positive = Decimal(3)
    """Weight of a score of a full serving; common practice, no source."""


class PrescriptionsTable(Settings):
    """Where the physician's file is."""

    changed_by: ClassVar[Role | None] = "physician"

    file: Text
    """TOML file of prescriptions."""


class LoadTable(Settings):
    """Food brought at one time."""

    arrives: Day
    """Date from which it feeds the crew."""


class StayTable(Settings):
    """Dates and the menu cycle."""

    changed_by: ClassVar[Role | None] = "planner"

    first_date: Day
    """First date that is planned."""
    last_date: Day
    """Last date that is planned."""
    cycle_days: Annotated[Whole, Span(least=1, most=60), Unit("days")]
    """Days of one pass of the menu cycle."""
    ordinary_kind: Annotated[Text, ChangedBy("dietitian")] = "work"
    """Kind of a day without another."""
    kinds: Annotated[dict[str, tuple[Whole, ...]], ChangedBy("dietitian")] = Field(default_factory=dict)
    """Other day kinds: days of the cycle, from 1, by kind."""
    common_meals: Whole = 0
    """Fewest meals a day that everybody eats at one time."""
    loads: dict[str, LoadTable] = Field(default_factory=dict)
    """Loads by name; without any, one load named "first" is there from the first date."""


class DatesTable(Settings):
    """A day planned by itself, in place of the cycle's day on some dates."""

    on: Annotated[tuple[Day, ...], Field(min_length=1)]
    """Dates it serves; the same menu on each of them."""
    kind: Text | None = None
    """Day kind; that of the cycle's day when left out."""
    meals: tuple[str, ...] = ()
    """Meals eaten; every meal of the kind when left out."""
    share: Annotated[Positive, Span(above=0, most=1)] = Decimal(1)
    """Part of a day's energy and nutrients it must bring: less than 1 on a day of arrival or departure."""


class PartyTable(Settings):
    """People who share dishes."""

    members: Annotated[tuple[str, ...], Names("person"), Field(min_length=2)]
    """Ids of people."""


class WatchTable(Settings):
    """People who keep the same hours."""

    people: Annotated[tuple[str, ...], Names("person"), Field(min_length=1)]
    """Ids of people."""
    sleep: tuple[ClockSpan, ...] = ()
    """Hours of sleep, as pairs of times."""
    on_watch: tuple[ClockSpan, ...] = ()
    """Hours on watch, as pairs of times."""
    meals: dict[str, Clock] = Field(default_factory=dict)
    """When these people eat a meal; its own time when left out. A meal after midnight belongs to the date
    that has just begun."""


class SharedPacksTable(Which):
    """Packs kept open that several people draw on."""

    people: Annotated[tuple[str, ...], Names("person")] = ()
    """Ids of people; everybody when left out. Who has a severe allergy always has packs apart."""


class PacksTable(Settings):
    """Opened packs."""

    shared: dict[Word, SharedPacksTable] = Field(default_factory=dict)
    """Who shares which packs, by a name of yours."""


class GoalTable(Settings):
    """What is made as large as it can be."""

    changed_by: ClassVar[Role | None] = "planner"

    first: Literal["mean", "least"] = "mean"
    """What goes first: the crew's mean liking, or the liking of whoever likes the menu least, and the mean
    after that. The price of soft limits missed is taken off either."""

    repeat_share: Annotated[Number, Span(least=0, most=1)] = Decimal("0.8")
    """r: the k-th use of an item in the cycle is worth (1 - r**(k-1)) x the smallest worth less;
    common practice, no source."""


class SearchTable(Settings):
    """How hard to look."""

    changed_by: ClassVar[Role | None] = "planner"

    moves: Annotated[Whole, Span(least=1000)] = 60_000_000
    """Moves of the search in all; more moves, mostly better menus, the same answer every time."""
    seed: Whole = 1
    """Start of the random numbers; the same seed gives the same menu."""
    exact_steps: bool = True
    """Small plans (up to 4,000 possible servings): after the search, whole days are chosen anew two at a
    time, exactly, one such step for each million moves; very small plans as a whole."""


class LeadTable(Settings):
    """Days from an order to its delivery, by the catalogue's column ``supply``."""

    made: Annotated[Whole, Span(least=0, most=3650), Unit("days")] = 120
    """Days for an item made for the purpose; common practice, no source."""
    bought: Annotated[Whole, Span(least=0, most=3650), Unit("days")] = 30
    """Days for an item bought and repacked; common practice, no source."""


class OrderTable(Settings):
    """What is ordered beyond the menu and the reserve, and by when."""

    tasting_packs: Annotated[Whole, Span(least=0, most=100_000), Unit("packs")] = 0
    """Packs of each item for tastings, out of the first load that carries it."""
    quality_packs: Annotated[Whole, Span(least=0, most=100_000), Unit("packs")] = 0
    """Packs of each item kept back from each load as samples of its quality."""
    spare_percent: Percent = Decimal(0)
    """Spare packs as a part of those for menu, condiments and reserve, rounded up for each item and load."""
    loading_days: Annotated[Whole, Span(least=0, most=3650), Unit("days")] = 7
    """Days to stow a load, counted back from its arrival; common practice, no source."""
    packing_days: Annotated[Whole, Span(least=0, most=3650), Unit("days")] = 14
    """Days to sort, overwrap and label a load before it is stowed; common practice, no source."""
    lead_days: LeadTable = LeadTable()
    """Days from an order to its delivery, where the catalogue's column lead_days is silent."""
    fewer_than: Annotated[Whole, Span(least=0, most=100_000), Unit("servings")] = 3
    """An item with fewer servings than this for each person of the crew is listed as used little, the
    reserve and what is free in the day included; common practice, no source."""


class ConfigBase(Settings):
    """A config; the rules' own tables are beside these."""

    model_config = ConfigDict(title="optimenu config")
    changed_by: ClassVar[Role | None] = "dietitian"

    role: Writer | None = None
    """Who writes this file; decides which limits of the files it extends it may change. A file that
    extends others and does not say is the planner's."""
    name: Annotated[Text, ChangedBy("planner")]
    """Name of the plan, as it stands on screens and papers."""
    catalogue: CatalogueTable
    """What there is to eat."""
    tasting: TastingTable
    """Tasting scores."""
    prescriptions: PrescriptionsTable | None = None
    """What the physician has laid down."""
    stay: StayTable
    """Dates and cycle."""
    people: Annotated[dict[str, PersonTable], Names("person"), Field(min_length=1)]
    """Crew by id."""
    aboard: Annotated[tuple[str, ...] | None, ChangedBy("planner"), Field(min_length=1)] = None
    """Ids of the people who go; everybody when left out. Nothing is planned for who stays, wherever the
    config names them; their tasting scores still help to estimate those of others."""
    dates: dict[Word, DatesTable] = Field(default_factory=dict)
    """Days planned by themselves, by a name of yours: a feast, an arrival."""
    parties: dict[Word, PartyTable] = Field(default_factory=dict)
    """People who share dishes, by a name of yours; courses name them in shared_by."""
    watches: dict[Word, WatchTable] = Field(default_factory=dict)
    """Hours that people keep, by a name of yours."""
    packs: PacksTable = PacksTable()
    """Opened packs."""
    storage: StorageTable | None = None
    """How food is kept, and what it loses."""
    goal: GoalTable = GoalTable()
    """Goal."""
    search: SearchTable = SearchTable()
    """Search."""
    order: OrderTable = OrderTable()
    """Order sheet."""


def config_model() -> type[ConfigBase]:
    """Return the model of a whole config: these tables and one table for each rule, named by the rule."""
    fields: dict[str, Any] = {}
    for table, rule in rule_classes().items():
        required = any(f.is_required() for f in rule.model.model_fields.values()) or table == "meals"
        default = ... if required else rule.model()
        doc = (rule.__doc__ or "").split("\n", 1)[0].rstrip(".")
        fields[table] = (rule.model, Field(default=default, description=doc))
    model: type[ConfigBase] = create_model("Config", __base__=ConfigBase, **fields)
    return model
