"""A quilt that several makers sew: its plan, who makes what, and how blocks meet."""
