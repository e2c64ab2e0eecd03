"""The frozen values that pages and charts are made of; plain SI numbers, no Django."""
