"""Following an in-service upgrade from outside: what each poll proves, and what the polls together come to."""
