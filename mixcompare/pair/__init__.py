"""An aligned pair, and what all aspects share of it."""
