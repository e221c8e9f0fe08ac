-- Whether an opening of scheme $1 waits for a second person.
SELECT EXISTS (SELECT FROM proposed_event p WHERE p.scheme = $1::integer AND p.kind = :kind_opening AND p.status = 'open')
