"""The lighting plan: views to scale, table of lights, set-up from black, meter checks, kit; PDF, SVG and PNG."""

from .make import PlanReport, PlanSettings, make_plan

__all__ = ["PlanReport", "PlanSettings", "make_plan"]
