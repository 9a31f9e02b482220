"""Physical constants, SI, each with its source."""

GRAVITY = 9.80665  # m/s2, CGPM 1901 standard value
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
MOLAR_MASS_WATER = 0.018015268  # kg/mol, IAPWS-95
MOLAR_MASS_AIR = 0.028966  # kg/mol, ASHRAE Fundamentals ch. 1
R_VAPOUR = GAS_CONSTANT / MOLAR_MASS_WATER  # J/(kg K)
R_AIR = GAS_CONSTANT / MOLAR_MASS_AIR  # J/(kg K)
WATER_TO_AIR = MOLAR_MASS_WATER / MOLAR_MASS_AIR  # 0.622, ratio of molar masses
ICE_POINT = 273.15  # K, 0 degC
STANDARD_PRESSURE = 101325.0  # Pa, ISO 2533
WATER_DENSITY = 1000.0  # kg/m3, EN 15026 convention
WATER_HEAT = 4187.0  # J/(kg K), liquid water near 20 degC, from memory
ICE_HEAT = 2060.0  # J/(kg K), ice near -5 degC, from memory
VAPOUR_HEAT = 1860.0  # J/(kg K), water vapour, ASHRAE Fundamentals ch. 1
EVAPORATION_HEAT = 2.501e6  # J/kg at 0 degC, ASHRAE Fundamentals ch. 1
FUSION_HEAT = 3.334e5  # J/kg at 0 degC, from memory; 2834.4 - 2500.9 kJ/kg in ASHRAE table 3
DRY_AIR_HEAT = 1006.0  # J/(kg K), ASHRAE Fundamentals ch. 1
# Suction at which ln(RH) = -1 at 20 degC: rho_w R_v T, Kelvin equation (EN 15026).
SUCTION_SCALE = WATER_DENSITY * R_VAPOUR * 293.15  # Pa
LEWIS_VAPOUR = 7.0e-9  # (s/m)/(W/(m2 K)): beta_p = 7e-9 h_c, EN 15026 / ISO 13788, from memory
