"""One exam in HL7 FHIR R4: a document Bundle, and the sheet as Questionnaire and answers.

Plain dictionaries in the order in which FHIR lists the elements; docs/record/fhir.md says what is
in them and what checked them.
"""
