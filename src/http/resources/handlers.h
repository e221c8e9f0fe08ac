/* SPDX-License-Identifier: ISC */
/* The handlers that the table of routes names, grouped by file. http/events/handlers.h has the handlers of
 * events. handler.h says what a handler is given, and on which thread it runs. */
#ifndef DEPOSITD_HTTP_RESOURCES_HANDLERS_H
#define DEPOSITD_HTTP_RESOURCES_HANDLERS_H

#include "http/request/handler.h"

/* index.c */
void handle_index(const struct request *request, struct answer *answer);

/* tasks.c */
void handle_tasks_list(const struct request *request, struct answer *answer);

/* ops.c */
void handle_style(const struct request *request, struct answer *answer);
void handle_healthz(const struct request *request, struct answer *answer);
void handle_readyz(const struct request *request, struct answer *answer);
void handle_openapi(const struct request *request, struct answer *answer);

/* me.c */
void handle_me(const struct request *request, struct answer *answer);

/* reference_document.c */
void handle_reference_get(const struct request *request, struct answer *answer);
void handle_reference_post(const struct request *request, struct answer *answer);
void handle_refund_values_post(const struct request *request, struct answer *answer);

/* reference.c */
void handle_schemes_list(const struct request *request, struct answer *answer);
void handle_scheme_get(const struct request *request, struct answer *answer);
void handle_scheme_put(const struct request *request, struct answer *answer);
void handle_terms_list(const struct request *request, struct answer *answer);
void handle_terms_get(const struct request *request, struct answer *answer);
void handle_terms_put(const struct request *request, struct answer *answer);
void handle_refund_values_list(const struct request *request, struct answer *answer);
void handle_refund_value_get(const struct request *request, struct answer *answer);
void handle_refund_value_put(const struct request *request, struct answer *answer);
void handle_office_accounts_list(const struct request *request, struct answer *answer);
void handle_office_accounts_get(const struct request *request, struct answer *answer);
void handle_office_accounts_put(const struct request *request, struct answer *answer);
void handle_agreements_list(const struct request *request, struct answer *answer);
void handle_agreement_get(const struct request *request, struct answer *answer);
void handle_agreement_put(const struct request *request, struct answer *answer);
void handle_participants_list(const struct request *request, struct answer *answer);
void handle_participant_get(const struct request *request, struct answer *answer);
void handle_participant_put(const struct request *request, struct answer *answer);
void handle_sites_list(const struct request *request, struct answer *answer);
void handle_site_get(const struct request *request, struct answer *answer);
void handle_site_put(const struct request *request, struct answer *answer);
void handle_tax_registrations_list(const struct request *request, struct answer *answer);
void handle_tax_registration_get(const struct request *request, struct answer *answer);
void handle_tax_registration_put(const struct request *request, struct answer *answer);
void handle_site_kinds_list(const struct request *request, struct answer *answer);
void handle_site_kind_get(const struct request *request, struct answer *answer);
void handle_site_kind_put(const struct request *request, struct answer *answer);
void handle_cup_types_list(const struct request *request, struct answer *answer);
void handle_cup_type_get(const struct request *request, struct answer *answer);
void handle_cup_type_put(const struct request *request, struct answer *answer);

/* proposals.c */
void handle_proposals_list(const struct request *request, struct answer *answer);
void handle_proposal_get(const struct request *request, struct answer *answer);
void handle_proposal_approve(const struct request *request, struct answer *answer);
void handle_proposal_withdraw(const struct request *request, struct answer *answer);

/* changes.c */
void handle_changes_list(const struct request *request, struct answer *answer);

/* keys.c */
void handle_me_renew(const struct request *request, struct answer *answer);
void handle_me_language(const struct request *request, struct answer *answer);

/* sessions.c */
void handle_sessions_list(const struct request *request, struct answer *answer);
void handle_session_delete(const struct request *request, struct answer *answer);

/* counter.c */
void handle_counter_page(const struct request *request, struct answer *answer);
void handle_counter_sent(const struct request *request, struct answer *answer);

/* sign_in.c */
void handle_sign_in_page(const struct request *request, struct answer *answer);
void handle_sign_in(const struct request *request, struct answer *answer);
void handle_sign_out(const struct request *request, struct answer *answer);
void handle_keys_list(const struct request *request, struct answer *answer);
void handle_keys_post(const struct request *request, struct answer *answer);
void handle_key_delete(const struct request *request, struct answer *answer);
void handle_key_language(const struct request *request, struct answer *answer);

/* days.c */
void handle_days_list(const struct request *request, struct answer *answer);

/* day_close.c */
void handle_day_close(const struct request *request, struct answer *answer);

/* returns_to_come.c */
void handle_returns_to_come(const struct request *request, struct answer *answer);

/* months.c */
void handle_months_list(const struct request *request, struct answer *answer);
void handle_month_get(const struct request *request, struct answer *answer);
void handle_month_close(const struct request *request, struct answer *answer);
void handle_month_reopen(const struct request *request, struct answer *answer);

/* settlements.c */
void handle_remaking_batches_list(const struct request *request, struct answer *answer);
void handle_remaking_batch_post(const struct request *request, struct answer *answer);
void handle_remaking_batch_get(const struct request *request, struct answer *answer);
void handle_remaking_batch_withdraw(const struct request *request, struct answer *answer);
void handle_shipments_list(const struct request *request, struct answer *answer);
void handle_shipments_post(const struct request *request, struct answer *answer);
void handle_shipment_get(const struct request *request, struct answer *answer);
void handle_packing_list(const struct request *request, struct answer *answer);
void handle_shipment_withdraw(const struct request *request, struct answer *answer);
void handle_fee_notes_list(const struct request *request, struct answer *answer);
void handle_fee_note_get(const struct request *request, struct answer *answer);
void handle_settlements_list(const struct request *request, struct answer *answer);
void handle_settlement_get(const struct request *request, struct answer *answer);

/* payments.c */
void handle_payments_list(const struct request *request, struct answer *answer);
void handle_payment_get(const struct request *request, struct answer *answer);
void handle_settlement_approve(const struct request *request, struct answer *answer);
void handle_payment_release(const struct request *request, struct answer *answer);
void handle_payment_approve(const struct request *request, struct answer *answer);
void handle_payment_confirm(const struct request *request, struct answer *answer);
void handle_payment_fail(const struct request *request, struct answer *answer);

/* files.c */
void handle_file_post(const struct request *request, struct answer *answer);
void handle_files_list(const struct request *request, struct answer *answer);
void handle_file_get(const struct request *request, struct answer *answer);

/* bank_reads.c */
void handle_bank_statements_list(const struct request *request, struct answer *answer);
void handle_bank_statement_get(const struct request *request, struct answer *answer);
void handle_bank_message_get(const struct request *request, struct answer *answer);
void handle_bank_lines_list(const struct request *request, struct answer *answer);
void handle_bank_line_get(const struct request *request, struct answer *answer);

/* bank_statements.c */
void handle_bank_statement_post(const struct request *request, struct answer *answer);
void handle_bank_line_resolve(const struct request *request, struct answer *answer);

/* proposed_events.c */
void handle_journals_list(const struct request *request, struct answer *answer);
void handle_journal_get(const struct request *request, struct answer *answer);
void handle_journal_approve(const struct request *request, struct answer *answer);
void handle_journal_withdraw(const struct request *request, struct answer *answer);
void handle_openings_list(const struct request *request, struct answer *answer);
void handle_opening_get(const struct request *request, struct answer *answer);
void handle_opening_approve(const struct request *request, struct answer *answer);
void handle_opening_withdraw(const struct request *request, struct answer *answer);

/* proofs.c */
void handle_event_proof(const struct request *request, struct answer *answer);
void handle_entry_proof(const struct request *request, struct answer *answer);
void handle_seals_list(const struct request *request, struct answer *answer);

/* metrics.c */
void handle_metrics(const struct request *request, struct answer *answer);

/* reports.c */
void handle_reports_list(const struct request *request, struct answer *answer);
void handle_report_get(const struct request *request, struct answer *answer);

/* day_totals.c */
void handle_day_totals_get(const struct request *request, struct answer *answer);
void handle_day_totals_put(const struct request *request, struct answer *answer);

/* exception_resolve.c */
void handle_exception_get(const struct request *request, struct answer *answer);
void handle_exceptions_resolve(const struct request *request, struct answer *answer);
void handle_exception_resolve(const struct request *request, struct answer *answer);

/* plans.c */
void handle_plan(const struct request *request, struct answer *answer);

/* office.c */
void handle_office(const struct request *request, struct answer *answer);

/* purchases.c */
void handle_purchases(const struct request *request, struct answer *answer);

/* accounts.c */
void handle_accounts_list(const struct request *request, struct answer *answer);

/* posting_rules.c */
void handle_posting_rules(const struct request *request, struct answer *answer);

/* cups.c */
void handle_cups_list(const struct request *request, struct answer *answer);
void handle_cup_get(const struct request *request, struct answer *answer);

/* checks.c */
void handle_checks(const struct request *request, struct answer *answer);

#endif
