"""True of this one aeroplane: the airframe record, its weighings and its loading, as frozen values."""
