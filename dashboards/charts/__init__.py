"""Charts: values in, Plotly figures out; SVG traces only, colours by the names of the stylesheet.

A figure's colours are CSS variables such as ``var(--ink)``. The page's script puts in what they
are in light or dark before it draws.
"""
