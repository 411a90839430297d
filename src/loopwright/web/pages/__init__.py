"""A folder a page: its routes in `__init__.py` as `router`, its templates beside them. `app.PAGES` lists them."""
