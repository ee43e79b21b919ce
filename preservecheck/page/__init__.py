"""The program in the browser, on this computer only: the same models, words and plots as the
reports.

How a view is added: a module ``views_NAME.py`` with ``routes(desk)``, listed in ``app.py``; a
template that extends ``shell.html``; an own ES module in ``static/`` if it needs one. A view gets
the draft as a POST with the form's fields (``desk.fields_of(request)``, then ``form.draft_of``),
since the server keeps none; the browser carries it from view to view (``static/keep.js`` keeps it,
and ``post_draft`` in ``static/ask.js`` sends it).
"""
