"""Which boxes can be played by a program? Simulated recorders, routers and mixers, for the demo and for tests.

Each kind of box is a `Model` (model.py): behaviour as a function of time, without sockets or clock. One server (server.py)
puts any of them on the network; a small HTTP door (door.py) turns their faults and plays the hand on the front panel.
Nothing here is shared with the drivers: two heads read the same sheet, and a misreading shows when they meet.
"""
