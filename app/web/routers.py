"""Every route of the program, by what it is for."""

from app.web import (
    admin_accounts,
    admin_audit,
    admin_clinic,
    admin_export,
    api,
    cds_hooks,
    compare,
    documents,
    emergency_access,
    entries,
    exams,
    fhir,
    first,
    health,
    invited,
    lock,
    own_account,
    own_second_factor,
    paper,
    patients,
    practice,
    provider_sign_in,
    registry,
    review,
    rules,
    sign_in,
    signed_exam,
    undo_entry,
    updates,
    verify,
    why,
    worklist,
)

ROUTERS = (
    worklist.router,
    patients.router,
    compare.router,
    exams.router,
    entries.router,
    undo_entry.router,
    updates.router,
    review.router,
    signed_exam.router,
    documents.router,
    verify.router,
    fhir.router,
    api.router,
    cds_hooks.router,
    registry.router,
)
# Who somebody is, and their own account.
ACCOUNT_ROUTERS = (
    sign_in.router,
    lock.router,
    provider_sign_in.router,
    first.router,
    invited.router,
    own_account.router,
    own_second_factor.router,
)
# What an administrator keeps.
ADMIN_ROUTERS = (
    admin_accounts.router,
    admin_clinic.router,
    admin_audit.router,
    admin_export.router,
    emergency_access.router,
)
# What is known, and why something was concluded: pages to read, which change nothing.
KNOWLEDGE_ROUTERS = (rules.router, why.router)
# Invented cases to practise with: they write tries, and nothing of a patient.
PRACTICE_ROUTERS = (practice.router,)
# The section of the permission table is that of what is known: for everybody, about nobody.
PAPER_ROUTERS = (paper.router,)
# What a proxy asks; it says nothing about anybody.
HEALTH_ROUTERS = (health.router,)
ALL_ROUTERS = (
    *ROUTERS,
    *ACCOUNT_ROUTERS,
    *ADMIN_ROUTERS,
    *KNOWLEDGE_ROUTERS,
    *PRACTICE_ROUTERS,
    *PAPER_ROUTERS,
    *HEALTH_ROUTERS,
)
