"""Figures as the notes about a pulse say them."""


def span_text(seconds: float) -> str:
    """A time with three digits: "1.25 ms"."""
    size = abs(seconds)
    if size >= 0.9995:
        return f"{seconds:.3g} s"
    if size >= 0.9995e-3:
        return f"{seconds * 1e3:.3g} ms"
    if size >= 0.9995e-6:
        return f"{seconds * 1e6:.3g} µs"
    return f"{seconds * 1e9:.3g} ns"


def percent(share: float, signed: bool = False) -> str:
    """A share in percent, with one digit where it is small: "7.2 %", "45 %"."""
    size = abs(share) * 100
    digits = 0 if size >= 19.95 else 1 if size >= 0.95 else 2
    if size < 0.005:
        return "0 %"
    text = f"{share * 100:{'+' if signed else ''}.{digits}f} %"
    return text.replace("-", "\N{MINUS SIGN}")


def frequency_text(hertz: float) -> str:
    """A frequency: "50 kHz"."""
    if hertz >= 1e6:
        return f"{hertz / 1e6:.3g} MHz"
    return f"{hertz / 1e3:.3g} kHz" if hertz >= 1e3 else f"{hertz:.3g} Hz"
