"""The shop: people, pages, tables. The only room where anything is stored.

A stage (`intake`, `examine`, `bench`, `pickup`, `records`, `instruments`) is a slice of one shape: `urls` where,
`views` reads clock, user and form, makes one call and shows one page, `forms` what the browser may send, `actions`
writes, `queries` reads. Stages never import each other.
"""

__all__: list[str] = []
