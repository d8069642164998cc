"""What do we know of the boxes, and what can be asked of them?"""
