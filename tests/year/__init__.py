"""A simulated year of nights: eight pairs whose stories are written beforehand, and what must come out of them."""
