"""How rafts are held: where their posts stand, and how long they are."""
