"""Questions about the dependence on stress: proportion, law, isochronous curves."""
