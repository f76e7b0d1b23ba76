"""How to package: gas, pressure, sulfite, sweetening, and what must not be done."""
