"""What may be known of an examiner, and how far examiners agree; writes nothing."""
