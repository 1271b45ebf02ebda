"""The laboratory's roles and the acts that each may do. Groups and permissions are made from this after a migration."""

ROLES: dict[str, frozenset[str]] = {
    "reception": frozenset({"receive_samples", "register_client", "change_request", "state_not_measured"}),
    "preparer": frozenset({"begin_batch", "record_weighings", "state_not_measured"}),
    "analyst": frozenset(
        {"plan_run", "import_readings", "evaluate_run", "accept_control", "select_result", "save_layout"}
    ),
    "reviewer": frozenset({"approve_results", "refuse_results", "send_back_results", "accept_control"}),
    "issuer": frozenset({"issue_certificate", "publish_certificate", "amend_certificate", "withdraw_certificate"}),
    "quality manager": frozenset(
        {
            "add_method_version",
            "authorise_person",
            "record_equipment_check",
            "register_equipment",
            "register_limits",
            "register_lot",
            "register_material",
            "register_matrices",
            "save_layout",
            "save_rule_set",
        }
    ),
    "laboratory manager": frozenset({"authorise_person", "enrol_person", "register_client"}),
    "auditor": frozenset(),
    "client": frozenset(),
}

STAFF = frozenset(ROLES) - {"client"}
"""Roles of people of the laboratory: they may look at everything, except that a client's people see their own only."""
