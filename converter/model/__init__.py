"""What the stages hand to each other: charts, materials, results."""
