"""Is everything on the same timecode, and does it stay there? Labels compared by what each answer proves."""
