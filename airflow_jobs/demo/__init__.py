"""The invented company: people, places and stories, made from a seed.

Nothing here is taken from life. `company.invent` makes everything in memory, with the truth
behind each reading, and `fill.fill_demo_company` writes it down as a field app would have sent
it; the worker computes what it means, as for any other record.
"""
