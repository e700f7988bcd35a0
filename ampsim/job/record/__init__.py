"""The job as one record: a folder with a file that a person can read and edit, and the frozen files it opens from."""
