"""The browser face: the same results as the command line, on pages that can be changed, printed and shared in the pit.

Answers: what a browser asked for, as a page and, at the same address with `.json`, as plain data.
Touches: the design files of one folder (through `design.edit` and `design.save`), a history beside them, one socket.
Must not: hold sums or judge anything; send anything to another machine; answer a machine that was not invited.
Beside:  docs/web.md lists every address; `routes` is the one list they come from.

Modules
-------
page        what a page is: address, one-line answer, result, template, actions
routes      the one list of pages
app         pages and actions as a Starlette application
security    who may ask: hosts, origins, sizes, headers
sessions    one-time tokens and the cookies they are changed for
workspace   the folder: designs, saving, what changed underneath
history     every version that was saved, for undo
work        results, worked out once for each version of a file
jobs        long work in processes of its own, with progress and a stop
render      templates, static files, typefaces
finding     everything that can go wrong, told as a finding
openapi     the description of the data side, made from the route list
server      the socket and the browser window
pages       one module for each page
"""
