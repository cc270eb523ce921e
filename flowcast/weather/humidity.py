"""Water in the air: vapour pressure, its deficit, dew point and relative humidity."""

import numpy as np

TETENS = (0.6108, 17.27, 237.3)  # kPa, 1, °C: FAO-56 eq. 11; READ
MAGNUS = (17.625, 243.04)  # 1, °C: Alduchov and Eskridge 1996; MEMORY


def saturation_vapour_pressure(temp_c):
    """Saturation vapour pressure over water. [kPa]

    Parameters
    ----------
    temp_c : numeric
        Air temperature. [°C]

    Returns
    -------
    numeric
        Same shape and index as the input; NaN stays NaN. [kPa]

    Notes
    -----
    Equation 11 of [1]_, which tables it from 1 to 48.5 °C (table 2.3).

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56,
       1998.
    """
    at_zero, slope, offset = TETENS
    return at_zero * np.exp(slope * temp_c / (temp_c + offset))


def vapour_pressure_deficit(temp_c, rh_pct):
    """What the air could still take up: saturation less actual vapour pressure. [kPa]

    Parameters
    ----------
    temp_c : numeric
        Air temperature. [°C]
    rh_pct : numeric
        Relative humidity; values above 100 count as 100. [%]

    Returns
    -------
    numeric
        Zero or more; NaN where either input is. [kPa]
    """
    return saturation_vapour_pressure(temp_c) * (1 - np.minimum(rh_pct, 100) / 100)


def dewpoint(temp_c, rh_pct):
    """Dew point from temperature and relative humidity. [°C]

    Parameters
    ----------
    temp_c : numeric
        Air temperature. [°C]
    rh_pct : numeric
        Relative humidity, taken within 1 to 100. [%]

    Returns
    -------
    numeric
        At or below the temperature; NaN where either input is. [°C]

    Notes
    -----
    The Magnus form with the constants of Alduchov and Eskridge 1996 (from memory), over water at
    any temperature; `relative_humidity` is its exact inverse.
    """
    return magnus_inverse(np.log(np.clip(rh_pct, 1, 100) / 100) + magnus_exponent(temp_c))


def relative_humidity(temp_c, dewpoint_c):
    """Relative humidity from temperature and dew point. [%]

    Parameters
    ----------
    temp_c, dewpoint_c : numeric
        Air temperature and dew point. [°C]

    Returns
    -------
    numeric
        At most 100; NaN where either input is. [%]
    """
    return np.minimum(100 * np.exp(magnus_exponent(dewpoint_c) - magnus_exponent(temp_c)), 100)


def magnus_exponent(temp_c):
    """Logarithm of the saturation vapour pressure, up to a constant (Magnus form). [1]"""
    slope, offset = MAGNUS
    return slope * temp_c / (offset + temp_c)


def magnus_inverse(exponent):
    """The temperature at which `magnus_exponent` has this value. [°C]"""
    slope, offset = MAGNUS
    return offset * exponent / (slope - exponent)
