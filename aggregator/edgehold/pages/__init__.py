"""Stage 6: pages, tables and charts, rendered from the results.

Enters: one ``Results`` record and the files made from it. Leaves: a folder with a static site. This stage knows the
results and the forms, and nothing else. Nothing is estimated here, and nothing is computed in a template.

``generate.generate_pages`` is a pure function from results to ``(path, text)``; ``site.build_site`` hands those pages, the
hand-written ones and the downloads to the generator, and is the only module that knows which generator that is.
"""
