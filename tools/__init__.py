"""Tools of the project, called by `dev.py` or by hand; never imported by the product.

`wheels` looks up which files a system needs, `bundle` makes a folder that installs without a network from what is
in `stick/`. These two know nothing of the product and may use the standard library, `packaging` and pip.

`sessions` runs the commands shown in README and tutorials, `reference` writes the references from the code, `notebook`
runs the example notebook, `gallery` remakes the pictures, `site` turns all pages into HTML.
"""
