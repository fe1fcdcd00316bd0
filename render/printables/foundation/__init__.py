"""Foundation sections as drawings and on sheets."""
