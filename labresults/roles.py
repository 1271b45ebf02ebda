"""The laboratory's roles and the acts that each may do. Groups and permissions are made from this after a migration."""

OWN_ACCOUNT = frozenset(
    {
        "change_password",
        "make_recovery_codes",
        "note_failed_signature",
        "sign_in_with_code",
        "turn_off_second_factor",
        "turn_on_second_factor",
    }
)
"""What everybody does for themselves, whatever else they may do."""

ROLES: dict[str, frozenset[str]] = {
    "reception": OWN_ACCOUNT
    | {
        "add_sample",
        "attach_file",
        "change_request",
        "correct_identification",
        "define_sample_set",
        "move_sample",
        "receive_samples",
        "record_custody",
        "record_sampling",
        "register_client",
        "register_recipient",
        "remember_request",
        "state_not_measured",
        "strike_sample",
    },
    "preparer": OWN_ACCOUNT
    | {
        "add_reagents",
        "attach_file",
        "begin_batch",
        "discard_portion",
        "record_custody",
        "record_fire_charges",
        "record_mass_losses",
        "record_weighings",
        "state_not_measured",
    },
    "analyst": OWN_ACCOUNT
    | {
        "accept_control",
        "allow_override",
        "change_request",
        "comment_result",
        "determine_interferences",
        "end_access_token",
        "estimate_limit",
        "evaluate_run",
        "import_readings",
        "issue_access_token",
        "let_stand",
        "plan_run",
        "save_layout",
        "select_result",
    },
    "reviewer": OWN_ACCOUNT
    | {
        "accept_control",
        "approve_results",
        "comment_result",
        "refuse_results",
        "send_back_results",
        "sign_review",
        "state_opinion",
    },
    "issuer": OWN_ACCOUNT
    | {
        "amend_certificate",
        "choose_rule_set",
        "issue_certificate",
        "notify_client",
        "publish_certificate",
        "register_recipient",
        "save_delivery_layout",
        "withdraw_certificate",
    },
    "quality manager": OWN_ACCOUNT
    | {
        "add_method_version",
        "allow_override",
        "amend_certificate",
        "authorise_person",
        "choose_rule_set",
        "define_derived",
        "determine_interferences",
        "end_access_token",
        "estimate_limit",
        "issue_access_token",
        "mark_calendar_day",
        "notify_client",
        "open_nonconforming_work",
        "publish_certificate",
        "record_equipment_check",
        "record_nonconforming_step",
        "register_equipment",
        "register_holding_time",
        "register_limits",
        "register_lot",
        "register_material",
        "register_matrices",
        "register_plausibility",
        "register_scope",
        "revise_method_version",
        "save_delivery_layout",
        "save_layout",
        "save_rule_set",
        "withdraw_certificate",
    },
    "laboratory manager": OWN_ACCOUNT
    | {
        "allow_override",
        "authorise_person",
        "end_access_token",
        "end_signing_certificate",
        "enrol_person",
        "give_new_password",
        "mark_calendar_day",
        "record_custody",
        "register_client",
        "register_recipient",
        "register_signing_certificate",
        "set_working_week",
    },
    "auditor": OWN_ACCOUNT,
    "client": OWN_ACCOUNT
    | {
        "record_fetch",
    },
}

STAFF = frozenset(ROLES) - {"client"}
"""Roles of people of the laboratory: they may look at everything, except that a client's people see their own only."""
