"""A pump with its tank, and a regulator with the mains before it, as the tests know them.

The pump: a 20 gal tank, 30 to 50 psi, 10 gal/min at 40 psi. The regulator: 25 psi, 21 at 5 gal/min.
"""

from __future__ import annotations

from controller.garden.plumbing import BeforeRegulator, Pump, Supply, SupplyKind
from controller.units import head_m_from_psi, m3_s_from_gal_min

PSI_M, GPM = head_m_from_psi(1.0), m3_s_from_gal_min(1.0)
PUMP = Pump(
    on_head_m=30 * PSI_M,
    off_head_m=50 * PSI_M,
    tank_m3=0.0757,
    pre_charge_head_m=28 * PSI_M,
    shut_off_head_m=62 * PSI_M,
)
WELL = Supply(
    kind=SupplyKind.PUMP,
    static_head_m=40 * PSI_M,
    test_head_m=40 * PSI_M,
    test_flow_m3_s=10 * GPM,
    pump=PUMP,
)
REGULATOR = Supply(
    kind=SupplyKind.REGULATOR,
    static_head_m=25 * PSI_M,
    test_head_m=21 * PSI_M,
    test_flow_m3_s=5 * GPM,
    exponent=1.0,
)
BEFORE = BeforeRegulator(static_head_m=50 * PSI_M, test_head_m=25 * PSI_M, test_flow_m3_s=8 * GPM)
