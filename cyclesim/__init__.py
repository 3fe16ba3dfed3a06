"""cyclesim: design, check and defend the pump programme of a small custom heated tub."""
