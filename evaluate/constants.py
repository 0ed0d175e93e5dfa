"""Constants of nature and molar masses, each once, with unit and source on its line.

Molar masses are sums of the IUPAC 2021 abridged standard atomic weights (C 12.011, H 1.008, N 14.007,
O 15.999, Na 22.990, S 32.06), with K 39.0983 and I 126.90447 from the unabridged table (Prohaska et al.,
Pure Appl. Chem. 94 (2022) 573).
"""

from typing import Final

LN_10: Final = 2.302585092994046  # [1] natural over decadic logarithm; mathematics, 16 digits

GAS_CONSTANT_J_PER_MOL_K: Final = 8.31446261815324  # R, exact since 2019; CODATA 2022
FARADAY_C_PER_MOL: Final = 96485.33212331001  # F, exact since 2019; CODATA 2022
ZERO_CELSIUS_K: Final = 273.15  # definition of the degree Celsius; SI brochure, 9th edition, 2.3.1
WATER_AT_20_C_KG_PER_M3: Final = (
    998.2010  # air-free water; Sugar Technologists Manual, 8th edition, as quoted
)

SULFUR_DIOXIDE_G_PER_MOL: Final = 64.058  # SO2; IUPAC 2021
IODINE_G_PER_MOL: Final = 253.80894  # I2; IUPAC 2021
POTASSIUM_IODATE_G_PER_MOL: Final = 213.99977  # KIO3; IUPAC 2021
SODIUM_THIOSULFATE_G_PER_MOL: Final = 158.097  # Na2S2O3, without water; IUPAC 2021
POTASSIUM_HYDROGEN_PHTHALATE_G_PER_MOL: Final = 204.2223  # C8H5KO4; IUPAC 2021
BENZOIC_ACID_G_PER_MOL: Final = 122.123  # C7H6O2; IUPAC 2021
SODIUM_CARBONATE_G_PER_MOL: Final = 105.988  # Na2CO3; IUPAC 2021
POTASSIUM_METABISULFITE_G_PER_MOL: Final = 222.3116  # K2S2O5; IUPAC 2021
SODIUM_METABISULFITE_G_PER_MOL: Final = 190.095  # Na2S2O5; IUPAC 2021
TARTARIC_ACID_G_PER_MOL: Final = 150.086  # C4H6O6; IUPAC 2021
MALIC_ACID_G_PER_MOL: Final = 134.087  # C4H6O5; IUPAC 2021
CITRIC_ACID_G_PER_MOL: Final = 192.123  # C6H8O7, without water; IUPAC 2021
LACTIC_ACID_G_PER_MOL: Final = 90.078  # C3H6O3; IUPAC 2021
SUCCINIC_ACID_G_PER_MOL: Final = 118.088  # C4H6O4; IUPAC 2021
ACETIC_ACID_G_PER_MOL: Final = 60.052  # C2H4O2; IUPAC 2021
SORBIC_ACID_G_PER_MOL: Final = 112.128  # C6H8O2; IUPAC 2021
SULFURIC_ACID_G_PER_MOL: Final = 98.072  # H2SO4; IUPAC 2021
NITROGEN_G_PER_MOL: Final = 14.007  # N; IUPAC 2021
ETHANOL_G_PER_MOL: Final = 46.069  # C2H6O; IUPAC 2021
