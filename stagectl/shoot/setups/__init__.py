"""How should the house be? Set-ups: tables of wanted values, their difference, application, undo, watch and capture."""
