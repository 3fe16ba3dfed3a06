"""How large a pump, a heat source or a blower."""
