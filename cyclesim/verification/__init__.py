"""Every order of events that the programme allows, explored whole; rules judged at each state."""
