"""The project's pages as plain HTML in one folder: README, docs, tutorials, references, gallery.

    python3 dev.py site              writes dist/site; open dist/site/index.html, no network is needed
    python3 dev.py site -o FOLDER    writes there

Paths stay as they are in the project, with .html for .md, and README.md as index.html, so that a link means the same
here and there. What a page links to (pictures, books, design files) is copied.

order  the pages in the order of the job's chain
page   Markdown to a page: headings with anchors, links, tables that fold on a phone, the notebook
look   styles and the script of the search
build  the folder; every link and anchor looked at
"""
