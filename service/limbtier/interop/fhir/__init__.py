"""HL7 FHIR R4 (4.0.1): resources in, resources out. Pure mapping; nothing here decides, stores or fetches."""
