"""How does each kind of box behave? Written from its published manner alone, sharing no code with its driver.

Each kind is a `Model` (model.py): behaviour as a function of time, without sockets or clock. One server (server.py)
puts any of them on the network; a small HTTP door (door.py) turns their faults and plays the hand on the front panel.
Two heads read the same sheet, one for the driver and one for the box, so that a misreading shows when they meet.
"""
