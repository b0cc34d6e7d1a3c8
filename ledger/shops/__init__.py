"""Several shops' books asked as one: found, opened, and what is said of their bikes and work.

A bike is (shop, tag). Only `bike_linked`, in whichever of the books, makes two of them one. Books
are never written here, and each keeps its own `seq`.
"""

from ledger.shops.joined import Bike, Joined
from ledger.shops.opened import Failure, Shops, open_shops
from ledger.shops.places import is_one_book, places_of

__all__ = ["Bike", "Failure", "Joined", "Shops", "is_one_book", "open_shops", "places_of"]
