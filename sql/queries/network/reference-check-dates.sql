-- Lets the guards of dated values look now, and not at the commit.
SET CONSTRAINTS ALL IMMEDIATE
