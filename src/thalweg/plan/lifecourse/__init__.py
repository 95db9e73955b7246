"""What each open diversion would mean over a life: a simulation of many lives like this one."""

from thalweg.plan.lifecourse.quantity import Basis, Quantity
from thalweg.plan.lifecourse.rates import OptionRates, Rates, Start
from thalweg.plan.lifecourse.simulate import LifeCourse, live

__all__ = ["Basis", "LifeCourse", "OptionRates", "Quantity", "Rates", "Start", "live"]
