"""What does the edit get of a take? Lists that its programs read, a table, and a sheet to print.

Pure functions over takes as REST shows them: nothing here asks a box, or reads or writes a file.
"""
