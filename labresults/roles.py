"""The laboratory's roles and the acts that each may do. Groups and permissions are made from this after a migration."""

ROLES: dict[str, frozenset[str]] = {
    "reception": frozenset(
        {
            "add_sample",
            "attach_file",
            "change_request",
            "correct_identification",
            "move_sample",
            "receive_samples",
            "record_custody",
            "register_client",
            "remember_request",
            "state_not_measured",
            "strike_sample",
        }
    ),
    "preparer": frozenset(
        {
            "add_reagents",
            "attach_file",
            "begin_batch",
            "discard_portion",
            "record_custody",
            "record_fire_charges",
            "record_mass_losses",
            "record_weighings",
            "state_not_measured",
        }
    ),
    "analyst": frozenset(
        {
            "accept_control",
            "allow_override",
            "change_request",
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
        }
    ),
    "reviewer": frozenset({"approve_results", "refuse_results", "send_back_results", "accept_control"}),
    "issuer": frozenset({"issue_certificate", "publish_certificate", "amend_certificate", "withdraw_certificate"}),
    "quality manager": frozenset(
        {
            "add_method_version",
            "allow_override",
            "authorise_person",
            "determine_interferences",
            "end_access_token",
            "estimate_limit",
            "issue_access_token",
            "record_equipment_check",
            "revise_method_version",
            "mark_calendar_day",
            "register_equipment",
            "register_holding_time",
            "register_limits",
            "register_lot",
            "register_material",
            "register_matrices",
            "save_layout",
            "save_rule_set",
        }
    ),
    "laboratory manager": frozenset(
        {
            "allow_override",
            "authorise_person",
            "end_access_token",
            "enrol_person",
            "mark_calendar_day",
            "record_custody",
            "register_client",
            "set_working_week",
        }
    ),
    "auditor": frozenset(),
    "client": frozenset(),
}

STAFF = frozenset(ROLES) - {"client"}
"""Roles of people of the laboratory: they may look at everything, except that a client's people see their own only."""
