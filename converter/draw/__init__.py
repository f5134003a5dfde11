"""Charts and plans as drawings in millimetres: PNG, SVG, PDF."""
