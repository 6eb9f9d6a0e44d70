"""How the tables of the records came about, step by step; Alembic runs them."""
