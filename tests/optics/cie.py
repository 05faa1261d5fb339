"""CIE tables by colour-science, the independent reference for spectra and colours."""

import warnings

with warnings.catch_warnings():
    # colour-science tells on import that its plotting extra is not installed; we do not plot.
    warnings.simplefilter("ignore")
    import colour

__all__ = ["colour"]
