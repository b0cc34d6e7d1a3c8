"""Invented names: the town, the shop, fleets, makers and riders. None is a real one."""

TOWN = "Saltmarrow"
SHOP = "saltmarrow"
SHOP_NAME = "Saltmarrow Bench"
CURRENCY = "EUR"
TIME_ZONE = "Europe/Amsterdam"

FLEETS = (
    "Herring & Daughters Dispatch",
    "Tidecart Errands",
    "Bollard Runners",
    "Saltline Parcel",
    "Lantern Quay Meals",
    "Driftwood Post",
)

BIKE_MAKES = ("Ordwick", "Fennimar", "Brackwen", "Tolvane", "Quistrel", "Morrowby")

BIKE_MODELS = {
    "city": ("Quay 3", "Quay 7", "Ropewalk"),
    "cargo": ("Lugger", "Dockhand"),
    "tourer": ("Long Ebb", "Headland"),
    "e_bike": ("Tidal E", "Flood E"),
    "e_cargo": ("Lugger E", "Barge E"),
    "road": ("Sprat", "Kittiwake R"),
    "gravel": ("Shingle", "Marram"),
    "child": ("Winkle 20", "Winkle 24", "Limpet 16"),
}

MECHANIC_NAMES = ("Ottoline Spannerby", "Perrin Cogshaw", "Saffi Truewheel")

FIRST_NAMES = (
    "Abelot", "Brindle", "Corvin", "Dulcet", "Elspar", "Fenn", "Gorsel", "Hobrin", "Isolde-May",
    "Jorrick", "Kittle", "Lowen", "Marram", "Nettle", "Orrin", "Pippet", "Quillon", "Rushby",
    "Sorrel", "Tansy", "Umber", "Vesper", "Wickett", "Yarrow", "Zephrin", "Bramwen", "Cobble",
    "Darnel", "Eddow", "Foxley",
)  # fmt: skip

LAST_NAMES = (
    "Anchorley", "Barnaclough", "Bilgewater", "Capstanby", "Codsworthy", "Crabtreen", "Driftmoor",
    "Eelham", "Fathomby", "Fogarthen", "Gannetson", "Halyarde", "Herringbourne", "Jettyman",
    "Kelpwright", "Keelhaven", "Lanternby", "Mizzenfield", "Mudlarke", "Netherquay", "Oarsby",
    "Pilchardson", "Quayling", "Ropewell", "Saltonby", "Seawrackle", "Shoalby", "Spindrifter",
    "Tidewell", "Trawlerby", "Whelkham", "Windlass-Poole",
)  # fmt: skip
