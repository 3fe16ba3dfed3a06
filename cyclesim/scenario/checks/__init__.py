"""What no single value can say: names, network, wiring and uses held against each other."""
