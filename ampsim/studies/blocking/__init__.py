"""How far a hard stroke shifts the bias of each stage, and how long a soft note is lost after it."""

TITLE = "blocking"
