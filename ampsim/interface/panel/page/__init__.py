"""The panel as a page on this computer alone, for those who do not use Jupyter.

One process holds the panel and serves the page, so there is no kernel and nothing that runs code that is sent. The
panel is the notebooks' own: `tabs` takes the place of the kernel's messages, `page.js` that of the notebook's front
end. Begin reading with `server`.
"""
