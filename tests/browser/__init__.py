"""The panel in a real browser: JupyterLab, Chromium, keys and mouse."""
