"""What the browser is handed, as plain data: the rules of every form, their layout and their tables; it brings no rule of its own."""
