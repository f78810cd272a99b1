-- Access of vignettes: header cells with scope; wide tables and code scroll by themselves, also by keyboard.
function Table(t)
  local head = t.head
  for _, row in ipairs(head.rows or head[2]) do
    for _, cell in ipairs(row.cells or row[2]) do
      local attr = cell.attr or cell[1]
      attr.attributes.scope = "col"
      if cell.attr then cell.attr = attr end
    end
  end
  t.head = head
  return pandoc.Div({t}, pandoc.Attr("", {"scroll"}, {tabindex = "0"}))
end

function CodeBlock(block)
  block.attributes.tabindex = "0"
  return block
end
