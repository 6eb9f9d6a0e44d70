"""The app in a browser, by place: Phone, Counter, Bench, Accounts, Rates.

To hang a place on it: a module with a ``Blueprint`` named as its address begins
(``Blueprint("phone", __name__, url_prefix="/phone")``), a page at that very address,
``@allow(...)`` on every view, its name in ``create_app``, and templates that extend
``web/base.html``. The address appears in the navigation of whoever may go there.
"""
