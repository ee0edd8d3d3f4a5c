"""The record: a folder that holds the journal, the archive of preserved recordings, personal data and keys."""
