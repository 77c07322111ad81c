"""True of any small aeroplane: arrays in, arrays out, SI, no files, no clock."""
