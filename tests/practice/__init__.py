"""Practice cases: moments on a site, put to the public command and judged by its answer.

``python -m tests.practice FILE`` reads a file of format ``practice-cases/2``. Only ``place``,
``asked`` and ``inputs`` of a case reach the product.
"""
