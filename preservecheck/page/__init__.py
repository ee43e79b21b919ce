"""The program in the browser, on this computer only: the same models, words and plots as the
reports.

How a view is added: a module in ``views/`` with ``routes(site)``, listed in ``app.py``; a template
that extends ``view.html`` or ``shell.html``; an ES module in ``static/``, named in ``page.js``, if
it needs one. An answer gets a ``Submission``: the fields that were posted, and the draft and the
formula in them, since the server keeps none. The browser carries what is typed from view to view:
``static/keep.js`` keeps it, ``static/view.js`` holds what the views share, ``static/ask.js`` posts
a form.
"""
