"""Tools of the project, called by `dev.py`: which files a system needs, and folders that install without a network.

May use the standard library, `packaging` and pip. Never imported by the product, and imports nothing of it.
"""
