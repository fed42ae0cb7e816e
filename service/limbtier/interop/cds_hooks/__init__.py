"""CDS Hooks 2.0 (HL7): what calls, cards and feedback look like. It fetches and stores nothing."""
