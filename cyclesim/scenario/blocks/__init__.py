"""The blocks of the file: plant, place, schedule, money and what they hold; which defaults were filled in."""
