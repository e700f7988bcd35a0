"""The consequence sheet: what a mod does besides tone, a section to each topic, as text and as one page."""
