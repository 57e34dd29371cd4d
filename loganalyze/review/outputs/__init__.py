"""Follow-up packs, the periodic safety report, exports."""
