"""Names of the invented company, its towns, customers and people; none is anybody's."""

from __future__ import annotations

from typing import Final

COMPANY_NAME: Final = "Ostrelle Bay Air Service"
REPORT_MARK: Final = "Invented company, for demonstration only"

COAST_ZONE: Final = "America/Los_Angeles"
MOUNTAIN_ZONE: Final = "America/Denver"

# Town, elevation in metres, climate, time zone: a coast, its hills, and the range behind them.
TOWNS: Final[tuple[tuple[str, float, str, str], ...]] = (
    ("Ostrelle", 6.0, "humid", COAST_ZONE),
    ("Quennick Bay", 3.0, "humid", COAST_ZONE),
    ("Saltenby", 12.0, "humid", COAST_ZONE),
    ("Pellanby", 38.0, "humid", COAST_ZONE),
    ("Marrowick", 95.0, "mixed", COAST_ZONE),
    ("Drellinford", 150.0, "mixed", COAST_ZONE),
    ("Brindlemoor", 240.0, "mixed", COAST_ZONE),
    ("Ashcorvin", 410.0, "mixed", COAST_ZONE),
    ("Yarrowdell", 640.0, "mixed", MOUNTAIN_ZONE),
    ("Vindhollow", 905.0, "dry", MOUNTAIN_ZONE),
    ("Stonecorrie", 1240.0, "dry", MOUNTAIN_ZONE),
)
HIGH_TOWNS: Final[tuple[tuple[str, float, str, str], ...]] = (
    ("Upper Corrivane", 1640.0, "dry", MOUNTAIN_ZONE),
    ("Highmerrin", 1910.0, "dry", MOUNTAIN_ZONE),
)

STREETS: Final = (
    "Lanternfish Lane",
    "Ropewalk Row",
    "Old Sluice Street",
    "Cinderpath Road",
    "Gullfeather Way",
    "Millrace Close",
    "Beacon Stair",
    "Saltcart Street",
)

# What stands on a site, how its customer is called, the least and most systems there.
BUILDINGS: Final[tuple[tuple[str, str, int, int], ...]] = (
    ("Public Library", "{town} Library Board", 2, 4),
    ("Primary School", "{town} School Fellowship", 3, 6),
    ("Family Clinic", "{town} Clinic Partners", 2, 5),
    ("Harbour Office", "Ostrelle Harbour Keepers", 2, 4),
    ("Guest House", "Lanternfish Guest Houses", 2, 4),
    ("Seed Store", "Corrivane Growers", 2, 3),
    ("Boat Works", "Ropewalk Boat Builders", 2, 4),
    ("Town Hall", "{town} Town Council", 3, 6),
    ("Tea Rooms", "Gullfeather Tea Rooms", 1, 3),
    ("Music School", "Millrace Music Trust", 2, 4),
)
ON_THE_SHORE: Final = ("Harbour Office", "Boat Works")
SHORE_BELOW_M: Final = 50.0
RESIDENCES: Final = ("house", "cottage", "terrace", "farmhouse")

FAMILY_NAMES: Final = (
    "Tindlewick",
    "Fablestone",
    "Oxbarrow",
    "Quillfether",
    "Marrowby",
    "Thistlecott",
    "Pennyquill",
    "Larkspindle",
    "Hobblewick",
    "Underbough",
    "Copperleigh",
    "Nettlewhit",
    "Windlebrook",
    "Fernquist",
    "Saltmarrow",
    "Dapplegate",
    "Rumblethorn",
    "Kettlebrae",
    "Mistlewade",
    "Candlewright",
    "Bramblecote",
    "Gorsewell",
    "Tallowfield",
    "Puddlecombe",
    "Wickerby",
    "Driftmoor",
    "Elderquist",
    "Foxmantle",
    "Hazelplume",
    "Inkpenny",
    "Jasperlow",
    "Kestrelby",
    "Loomcraft",
    "Moonfurrow",
    "Nimblewood",
    "Orchardine",
    "Plumbworthy",
    "Quaverley",
    "Riddlestone",
    "Starlingham",
)
GIVEN_NAMES: Final = (
    "Ada",
    "Bram",
    "Cleo",
    "Dario",
    "Elsie",
    "Farid",
    "Greta",
    "Hugo",
    "Imani",
    "Jonas",
    "Keiko",
    "Lars",
    "Mina",
    "Nico",
    "Oona",
    "Pavel",
    "Quinn",
    "Rosa",
    "Sven",
    "Tilda",
    "Umar",
    "Vera",
    "Wim",
    "Xenia",
    "Yusuf",
    "Zelda",
)

# Crew name and how many people are in it at a time.
CREWS: Final[tuple[tuple[str, int], ...]] = (
    ("Heron", 4),
    ("Otter", 3),
    ("Plover", 5),
    ("Lynx", 3),
    ("Marten", 4),
    ("Osprey", 4),
    ("Badger", 3),
    ("Wren", 2),
)
