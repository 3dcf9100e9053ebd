"""The maker's own page: plan a batch in a form, work from paper, write down what was measured, learn for the next one."""

from kit.lab.panels.plan.panel import plan_panel

__all__ = ["plan_panel"]
