"""A plan or a chain of tasks walked through every scenario."""
