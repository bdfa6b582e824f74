"""The vocabulary of the trade, as data: lesions, feet, scales, housing, seasons, units, published figures."""
