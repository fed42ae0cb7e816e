"""One file a change; `revision` and `down_revision` put them in order."""
