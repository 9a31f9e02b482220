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
HOUR = 3600.0  # s
STANDARD_PRESSURE = 101325.0  # Pa, ISO 2533
WATER_DENSITY = 1000.0  # kg/m3, EN 15026 convention
WATER_HEAT = 4184.0  # J/(kg K), liquid water at 20 degC, IAPWS-95 (CoolProp)
ICE_HEAT = 2060.0  # J/(kg K), ice at -5 degC, IAPWS-06 (2097 at 0, 2023 at -10 degC)
VAPOUR_HEAT = 1860.0  # J/(kg K), water vapour, ASHRAE Fundamentals ch. 1
EVAPORATION_HEAT = 2.501e6  # J/kg at 0 degC, ASHRAE Fundamentals ch. 1
FUSION_HEAT = 3.334e5  # J/kg at 0 degC, from memory; 2834.4 - 2500.9 kJ/kg in ASHRAE table 3
DRY_AIR_HEAT = 1006.0  # J/(kg K), ASHRAE Fundamentals ch. 1
# Suction at which ln(RH) = -1 at 20 degC: rho_w R_v T, Kelvin equation (EN 15026).
SUCTION_SCALE = WATER_DENSITY * R_VAPOUR * 293.15  # Pa
# Diffusion of water vapour in still air: D = 2.306e-5 (T / 273.15)^1.81 P0 / P, Schirmer's law with 0.083 m2/h and
# P0 = 101325 Pa as DIN 52615 and ISO 12572 print it, from memory. (2.26e-5 is the same law for P0 = 1 bar.)
VAPOUR_DIFFUSIVITY = 2.306e-5  # m2/s at 0 degC and 101325 Pa
# Permeability of air at 23 degC, the temperature of cup tests (ISO 12572): turns a permeance into s_d and back.
AIR_PERMEABILITY = VAPOUR_DIFFUSIVITY / (R_VAPOUR * ICE_POINT) * (296.15 / ICE_POINT) ** 0.81  # 1.953e-10 kg/(m s Pa)
ISO_AIR_PERMEABILITY = 2.0e-10  # kg/(m s Pa), rounded design constant of ISO 13788 and ISO 10456, from memory
US_PERM = 5.72135e-11  # kg/(Pa s m2), 1 grain/(h ft2 inHg), ASTM E96
LEWIS_VAPOUR = 7.0e-9  # (s/m)/(W/(m2 K)): beta_p = 7e-9 h_c, EN 15026 / ISO 13788, from memory
MOULD_CLASSES = ("very sensitive", "sensitive", "medium resistant", "resistant")  # of materials, by the mould model
# Cp(base) - Cp(head) over the whole wall: low, mid and high value of the straight line, and of the uncertainty study.
# An assumption, no confirmed measurement
CP_DIFFERENCE_BAND = (0.05, 0.1, 0.3)  # 1
RAIL_FLANGE = 0.04  # m, usual width of the flange of a metal rail; common practice, no source
AIR_DENSITY = 1.2  # kg/m3, air at 20 degC: converts volume flows where no state is given; common practice, no source
# Free area of the openings of an air layer per metre of wall, up to which it is unventilated and from which it is well
# ventilated: ISO 6946:1996 clause 5.3, read in a secondary text; ISO 6946:2017, 6.9.2 to 6.9.4 (clauses read)
UNVENTILATED_LIMIT, WELL_VENTILATED_LIMIT = 500e-6, 1500e-6  # m2/m
TOUCH = 1e-6  # m, heights closer than this are the same height
# moisture potential u from which a layer that absorbs liquid water is full: suction 831 Pa, pores of 0.17 mm radius
# (0.144 N/m / p_suc), our own assumption
SATURATED = 12.0
INSULATION = 0.065  # W/(m K), what conducts less counts as insulation (DIN 4108-4 calls up to 0.1 so; own choice)
COMMON_DEPTH = 0.020  # m, cavity depth, DIN 18516-1, read second-hand
COMMON_VENTS = 0.0050  # m2/m of free vent area at the foot and at the head, DIN 18516-1, read second-hand
RUN_OFF = 0.2  # kg/m2 above which condensate may run off a surface that does not absorb, ISO 13788:2012, from memory
