-- SPDX-License-Identifier: ISC
-- wrk's side of the benchmark: posts of new issues and returns at random sites, one event or an array of them a request.
-- Everything is drawn from the seed that the caller gives; the outcome is one line of JSON, the last that is printed.
-- Requests are made before the clock runs: the client shares the processors with what is measured.

-- Kind, cups and till amount of an event; more cups go out than come back. Amounts are those of the tariff.
local GOODS = {
  '"issue","issued":[{"cup_type":"cup-300","quantity":1}]',
  '"issue","issued":[{"cup_type":"cup-450","quantity":1}]',
  '"issue","issued":[{"cup_type":"cup-300","quantity":2}],"amount":"5.00","tender":"card"',
  '"issue","issued":[{"cup_type":"cup-450","quantity":1}],"amount":"3.50","tender":"cash"',
  '"return","returned":[{"cup_type":"cup-300","quantity":1}]',
  '"return","returned":[{"cup_type":"cup-450","quantity":1}]',
  '"return","returned":[{"cup_type":"cup-300","quantity":1}],"amount":"2.50","tender":"cash"',
}
local PLAIN_ISSUE = { GOODS[1] } -- what the size of an event is told by
local OUT, STRIDE = 504, 7919    -- as in known_cups.py
local CLOCK_EVERY = 64           -- events that share a look at the clock

local random, concat = math.random, table.concat
local hex = {}
for i = 0, 65535 do hex[i] = string.format("%04x", i) end

local goods, schemes, sites, lines, pause_ms, head, now
local asset_type, in_play, apart -- of the cups that events name, if they do: how many, and how far apart their numbers
local made = 0
local ready, taken = {}, 0

-- Version 4 of RFC 9562: 122 random bits.
local function uuid()
  return hex[random(0, 65535)] .. hex[random(0, 65535)] .. "-" .. hex[random(0, 65535)] .. "-"
    .. hex[0x4000 + random(0, 0xfff)] .. "-" .. hex[0x8000 + random(0, 0x3fff)] .. "-"
    .. hex[random(0, 65535)] .. hex[random(0, 65535)] .. hex[random(0, 65535)]
end

local function site()
  local number = random(0, sites - 1)
  return schemes and "site-" .. random(0, schemes - 1) .. "-" .. number or "site-" .. number
end

-- Each cup is issued at its site, and comes back there when as many others as are out have been issued after it. One
-- turn in eight names no cup.
local function named_cup()
  local turn, back = math.floor(made / 2), made % 2 == 1
  if turn % 8 == 7 or back and turn < OUT then return site(), GOODS[back and 5 or 1] end
  local number = (back and turn - OUT or turn) * STRIDE % in_play
  number = number * apart + number % apart
  return "site-" .. number % sites, string.format(
    back and '"return","returned":[{"cup_type":"cup-300","quantity":1,"ids":["%s%07d"]}]'
      or '"issue","issued":[{"cup_type":"cup-300","quantity":1,"ids":["%s%07d"]}]', asset_type, number)
end

local function event()
  if made % CLOCK_EVERY == 0 or not now then now = os.date("!%Y-%m-%dT%H:%M:%SZ") end
  local at, what
  if asset_type then at, what = named_cup() else at, what = site(), goods[random(#goods)] end
  made = made + 1
  return '{"event_id":"' .. uuid() .. '","site":"' .. at .. '","occurred_at":"' .. now .. '","kind":' .. what .. "}"
end

local function body()
  if lines == 1 then return event() end
  local events = {}
  for i = 1, lines do events[i] = event() end
  return "[" .. concat(events, ",") .. "]"
end

-- Each connection waits at random between its requests, so that all together offer about the rate asked for.
local function random_pause() return random(0, 2 * pause_ms) end

local function make_request()
  local text = body()
  return head .. #text .. "\r\n\r\n" .. text
end

-- Arguments: KEY SEED SITES LINES PAUSE_MS GOODS READY; SITES is a number of sites, site-0, site-1 …, or 70x10 for 70
-- schemes of 10 sites each, site-0-0 …; GOODS is mixed, plain, or named:ASSET_TYPE:IN_PLAY:APART:BEGUN for events that
-- name one of so many cups each, going on after so many such events. READY is how many requests are made at the start.
function init(arguments)
  math.randomseed(tonumber(arguments[2]))
  local spread, each = arguments[3]:match("^(%d+)x(%d+)$")
  schemes, sites = tonumber(spread), tonumber(each or arguments[3])
  lines, pause_ms = tonumber(arguments[4]), tonumber(arguments[5])
  goods = arguments[6] == "plain" and PLAIN_ISSUE or GOODS
  local of_type, cups, step, begun = arguments[6]:match("^named:(%d+):(%d+):(%d+):(%d+)$")
  asset_type, in_play, apart, made = of_type, tonumber(cups), tonumber(step), tonumber(begun) or 0
  head = "POST " .. wrk.path .. " HTTP/1.1\r\nHost: " .. wrk.host .. "\r\nAuthorization: Bearer " .. arguments[1]
    .. "\r\nContent-Type: application/json\r\nContent-Length: "
  if pause_ms > 0 then delay = random_pause end -- wrk looks for this name after init
  for i = 1, tonumber(arguments[7]) do ready[i] = make_request() end
end

function request()
  taken = taken + 1
  return ready[taken] or make_request()
end

function done(summary, latency)
  local errors = summary.errors
  print(string.format('{"requests": %d, "seconds": %f, "p99_ms": %f, "median_ms": %f, "refused": %d, "broken": %d}',
    summary.requests, summary.duration / 1e6, latency:percentile(99) / 1e3, latency:percentile(50) / 1e3,
    errors.status, errors.connect + errors.read + errors.write + errors.timeout))
end
